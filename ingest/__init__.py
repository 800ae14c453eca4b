"""The ingestor: takes reports from the broker, stores them, and acknowledges what is committed."""
