"""Scans through SANE, one by one, with a plan and a check after each.

`device` reads what a scanner offers, `scan` makes one scan with Debian's ``scanimage`` as a child
process (a crash of a driver cannot take us down, and nothing needs to be compiled), `folder` takes
scans that other software saved, `plan` says what to lay on the glass, `guide` walks the plan,
`session` keeps what was done, `pace` tells pages per hour from the seconds measured.
"""
