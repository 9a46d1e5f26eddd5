"""Other systems' ticket changes, turned into one flow per batch."""
