"""The link to the board: frames, messages, ports, recordings.

`hardware_notes/link_protocol.md` is the specification.
"""
