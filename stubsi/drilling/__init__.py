"""What to do about a stub: fabricator's rules, windows of end positions, drill groups, re-routes, hand-off."""
