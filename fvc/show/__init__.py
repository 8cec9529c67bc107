"""Result values made visible: for a person (terminal) and for a script (data)."""
