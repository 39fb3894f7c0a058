"""A model of one setting that runs: described in a file, played, run backwards, asked what it will do."""
