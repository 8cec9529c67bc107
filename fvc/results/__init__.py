"""Everything that was tried of a formula and what came of it."""
