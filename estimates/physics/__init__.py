"""The building physics: plain functions of numbers, in the units the trade's tables are printed in.

Inside are ft, in, ft2, ft3, degF, Btu/h, R in h ft2 degF/Btu and U its inverse. Every function takes a number or an
array of numbers and says its limits; outside them it raises `OutOfRange` or answers with a warning. Nothing here knows
the database, the settings or a page.
"""
