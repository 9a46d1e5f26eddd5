"""The pages: each route parses, calls one flow, and shows what came of it."""
