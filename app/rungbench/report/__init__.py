"""What leaves the bench: inspection reports, labels, exports, and the handover after a run."""
