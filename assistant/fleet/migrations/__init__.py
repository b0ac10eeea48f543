"""How older stores are brought to `assistant.fleet.schema`; run by the program when it opens one."""
