"""The `duestroke` command: settings, embedded parts, supervisor; the composition root."""
