"""What a stub of a board answers: its shape as drawn, what stands around it, its models, its figures over frequency."""
