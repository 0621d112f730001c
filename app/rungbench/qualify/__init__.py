"""Qualification of one charger: plans, steps, checks, and the runner that fills a record."""
