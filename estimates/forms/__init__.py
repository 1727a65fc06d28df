"""Forms of the estimates app, one small form per action."""
