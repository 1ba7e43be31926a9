"""Mutants of measures, numeric and findings: does a test of their own notice? Run by hand.

A mutant is a module with one small change of meaning: another comparison, sign, operator, constant,
condition. It is killed if a test of that module fails (or never ends). `own_tests` says which those
are: a module's own, so that a mutant costs seconds. What survives stands in README.md with why.
"""
