"""The catalogue of free soundfonts: licence, source, checksum, which preset plays what, measured calibration."""
