"""Planning of depth drilling: the fabricator's rules, windows, drill groups, effects, questions and re-routes."""
