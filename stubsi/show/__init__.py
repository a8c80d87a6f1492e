"""How results are shown: text, CSV, Markdown, HTML; plots (the only package that knows matplotlib)."""
