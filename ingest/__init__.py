"""MQTT in, committed readings out: a thin shell round `store.intake`."""
