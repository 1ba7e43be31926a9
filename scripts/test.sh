#!/bin/sh
# Installs all that the tests need and runs linter, type checker and tests. Arguments go to pytest.
set -eu
. "$(dirname "$0")/setup.sh"
missing=""
command -v chromium >/dev/null || missing="$missing chromium"
command -v pdftoppm >/dev/null || missing="$missing poppler-utils"
command -v scanimage >/dev/null || missing="$missing sane-utils"
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing="$missing postgresql"
[ -z "$missing" ] || debian $missing
make_venv "[dev]"
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
.venv/bin/python -m pytest -n 2 "$@"
