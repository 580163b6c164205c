"""Water in the pipe: intake, penstock, jets."""
