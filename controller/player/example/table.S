; The frame table, in a section of its own that the linker puts behind the code.
	.section .panel_table, "a", @progbits
	.global panel_table
panel_table:
	.incbin TABLE
