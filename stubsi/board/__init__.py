"""The board as data: signals, stackup, padstacks, holes, nets and the board itself, as frozen values; no physics."""
