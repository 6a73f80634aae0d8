"""The files in which bones lie in a workspace: surfaces, labels, hand edits."""
