"""Forms of the jobs app, one module per noun."""
