#!/bin/sh
# Pictures of the A4 sheets for README.md here, by poppler: run it after `scanqa sheets`.
set -eu
cd "$(dirname "$0")"
for sheet in bed-sheet edge-strip gutter-ramp back-print; do
    pdftoppm -r 50 -gray -png -f 1 -l 1 -singlefile "$sheet-a4.pdf" "$sheet-a4"
done
