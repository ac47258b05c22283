"""Files that outlast a crash and a power cut."""
