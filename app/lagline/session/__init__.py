"""What the engineer decided: values, edits, storage. No Qt, no audio, no threads."""
