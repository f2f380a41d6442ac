"""Everything that touches a port, a bus, a process or a wall clock.

Imports go ``xlate_core <- hil <- tools``: this package may use the reference, and only the tools
may use this package.
"""
