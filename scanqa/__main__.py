"""Lets ``python -m scanqa`` run the command line."""

from scanqa.cli import main

main()
