"""What travels on the data bus: frames into signals, senders, codes and identifiers."""
