"""Fitting the crack network: not needed at run time, and the only part that needs PyTorch."""
