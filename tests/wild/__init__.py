"""Pictures that nobody meant for crackmap."""
