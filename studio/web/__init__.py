"""How the web process waits: for heads, bodies and readers, without a thread for each."""
