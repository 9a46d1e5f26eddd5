"""The tests: folders mirror the rooms of notify/, parts/ holds what several of them need."""
