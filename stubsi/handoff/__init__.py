"""The hand-off of a plan to the fabricator: the files that it builds from, and what differs in files that come back."""
