#!/bin/sh
# Installs scanqa into .venv and runs the main job on two simulated scanners; the last line printed
# is the path of a report. Arguments go to `scanqa demo`.
set -eu
. "$(dirname "$0")/setup.sh"
make_venv ""
.venv/bin/scanqa demo "$@"
