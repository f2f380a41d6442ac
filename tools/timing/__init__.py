"""How long things take, at worst: the two buses and every way through the bridge."""
