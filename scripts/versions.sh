#!/bin/sh
# sh scripts/versions.sh lowest|newest PYTHON [ARGUMENT…]: installs scanqa with all that its tests
# need in a fresh environment of that Python – the lowest version that pyproject.toml states of each
# dependency, or the newest –, prints what was resolved and runs the tests there. Arguments go to
# pytest. A Python that is not there is fetched by uv, if the network lets it.
set -eu
[ $# -ge 2 ] || { sed -n '2,5s/^# //p' "$0" >&2; exit 2; }
which=$1 python=$2
shift 2
case $which in
    lowest) resolution=lowest-direct ;;
    newest) resolution=highest ;;
    *) echo "$which: neither lowest nor newest" >&2; exit 2 ;;
esac
. "$(dirname "$0")/setup.sh"
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
tools "$fresh/tools" uv
uv=$fresh/tools/bin/uv own=$fresh/env/bin/python
"$uv" venv --quiet --python "$python" "$fresh/env"
"$uv" pip install --quiet --python "$own" --resolution "$resolution" --editable '.[dev]'
"$own" --version
"$uv" pip list --quiet --python "$own"
"$own" -m pytest "$@"
