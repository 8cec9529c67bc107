"""TOML in, typed values out; and edits that change nothing but the bytes they must."""
