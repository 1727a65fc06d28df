"""Views of the estimates app: parse, authorise, call, answer."""
