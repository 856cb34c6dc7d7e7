"""The pages that show what the watcher sees."""
