"""The board as an object: rungs, records and mains senses instead of frames."""
