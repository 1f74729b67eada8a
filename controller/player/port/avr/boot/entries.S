; The beginning of the boot section: what the application jumps to, in this order
; for ever, and what it knows the section by. pg_boot.h has the C side.
	.section .entries, "ax", @progbits
	.global entries
entries:
	jmp	boot_erase
	jmp	boot_write
	.ascii	"PGB3"
	.long	BOOT_FROM
	.long	BOOT_END
