"""Reading TOML files of users: tables, values, and the line of each key."""
