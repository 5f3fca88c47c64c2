"""What crackmap does when the computer fails it: no room, no rights, a kill, another crackmap, a clock set back."""
