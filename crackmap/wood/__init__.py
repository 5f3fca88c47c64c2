"""Wood: species, moisture and movement, from tables whose every row carries its source."""
