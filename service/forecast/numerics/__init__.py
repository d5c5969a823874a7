"""The forecast's numerics: numpy and scipy, no I/O, no clock. Run in a process of their own.

Nothing that answers requests imports this package.
"""
