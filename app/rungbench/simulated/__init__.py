"""A board, a ladder and a charger behind the bytes of the link."""
