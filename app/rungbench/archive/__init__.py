"""Records of runs and where they are kept."""
