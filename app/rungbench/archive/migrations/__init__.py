"""Steps from each version of the archive to the next; a step is never changed once released."""
