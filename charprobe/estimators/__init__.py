"""One measurement per file: arrays in, result out."""
