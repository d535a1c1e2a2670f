"""Where packets come from: a UDP port, a file that grows, a simulated flight."""
