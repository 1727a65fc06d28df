"""The ground under the three apps: settings, URLs, middleware, error pages. Imported by nobody."""
