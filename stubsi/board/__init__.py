"""What is built: signals, stackup, padstacks, holes, nets and the board, as frozen values (geometry only)."""
