# Sourced by the others here: makes .venv with scanqa in it. Debian 12 or later, Python 3.11 or
# later. Uses apt-get (as root or through sudo) only for what is missing.
cd "$(dirname "$0")/.."

debian() { # debian PACKAGE…: install Debian packages
    as_root=""
    [ "$(id -u)" = 0 ] || as_root=sudo
    echo "installing Debian packages: $*"
    $as_root apt-get update -q
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends "$@"
}

have_venv() {
    python3 -c 'import ensurepip, venv' 2>/dev/null || debian python3-venv
}

make_venv() { # make_venv EXTRAS: .venv with scanqa, editable, and its extras
    have_venv
    python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
        { echo "scanqa needs Python 3.11 or later; this is $(python3 --version)" >&2; exit 1; }
    [ -x .venv/bin/python ] || python3 -m venv .venv
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --editable ".$1"
}

tools() { # tools FOLDER PROGRAM…: programs of the Python Package Index, in a folder of their own
    tools_in=$1
    shift
    have_venv
    python3 -m venv "$tools_in"
    "$tools_in/bin/python" -m pip install --quiet --disable-pip-version-check "$@"
}
