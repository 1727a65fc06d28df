"""Across houses: frames, charts, exports. Owns no data."""
