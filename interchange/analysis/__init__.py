"""Pure kernels over arrays: air, fan, fits, checks, verdicts. No files, no models, no state."""
