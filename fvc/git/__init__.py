"""All that speaks to git: it runs the `git` program and returns plain data."""
