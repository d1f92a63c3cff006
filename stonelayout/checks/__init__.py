"""What stands against cutting: thin webs, tear lines, contrast, size."""
