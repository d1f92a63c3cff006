"""The curves that rows run on, the sizes along them, and one row at equal chords."""
