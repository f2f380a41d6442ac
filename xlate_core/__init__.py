"""The reference engine of the bridge: integers only, no clock, no thread, no port.

Frame -> reception -> quantities -> functions -> transmission -> frame. Imports go downwards only;
the order is enforced by ``tests/test_structure.py``.
"""
