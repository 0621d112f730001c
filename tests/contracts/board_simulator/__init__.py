"""The firmware of the board, run for real in a simulated microcontroller.

The program that does it is `tests/board/simulator`; here it is built, started and talked to.
"""
