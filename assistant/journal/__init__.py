"""The log: records, chain, writer, reader, verification, keeping."""
