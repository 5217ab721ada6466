"""Settings, recipes and moulds from files; the only reader of configuration."""
