"""Filters of the pages."""
