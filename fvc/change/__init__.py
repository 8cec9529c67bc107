"""What a change asked for by the maker makes of a plan; pure, nothing is written here."""
