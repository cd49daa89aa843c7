"""What is told of each study, whatever the format."""
