"""What Movewright knows: one record one thing, in TOML, read as resources and never imported."""
