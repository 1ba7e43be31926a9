#!/bin/sh
# sh scripts/audit.sh [SERVICE]: asks for the known weaknesses of what a user installs – scanqa with
# each of its extras, at the newest versions and at the lowest that pyproject.toml admits. SERVICE is
# one of pip-audit's, pypi unless given. Status 0 only if every package was asked for and none is
# weak: then the lowest versions need not be raised.
set -eu
. "$(dirname "$0")/setup.sh"
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
tools "$fresh" uv pip-audit
status=0
for resolution in highest lowest-direct; do
    list=$fresh/$resolution.txt
    "$fresh/bin/uv" pip compile --quiet --no-header --no-annotate --generate-hashes \
        --python-version 3.11 --resolution "$resolution" --extra postgres --extra parquet \
        --extra prometheus --extra cluster --extra s3 --output-file "$list" pyproject.toml >/dev/null
    echo "$resolution: $(grep -c == "$list") packages"
    "$fresh/bin/pip-audit" --strict --require-hashes --disable-pip --progress-spinner off \
        --vulnerability-service "${1:-pypi}" --requirement "$list" || status=1
done
exit $status
