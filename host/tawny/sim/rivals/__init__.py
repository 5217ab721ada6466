"""Controllers that the loop is compared with: what a workshop would use in its stead."""
