"""The report of a board: one HTML file that a reviewer reads without having run anything.

``write_report(plan, "board.html")`` writes it. Where nothing is planned yet, it takes a ranking. The decision stands on
top; below it every net with its margin, the pictures, the drilling, what the fabricator gets and would ask for, and
what the figures rest on. The file loads nothing and prints well.
"""
