/* A part of pg_stretch.S, with its registers: the adaptive binary decoder, as in
 * decode_bits.h, and where it gets its bytes. */

/* Decodes a bit of chance r22/256 into r23; r0, r1 change, Z where a byte is
 * fetched. */
	.macro split
	mul	r3, r22
	clr	r23
	cp	r4, r0
	cpc	r5, r1
	brcs	1f
	sub	r4, r0
	sbc	r5, r1
	sub	r2, r0
	sbc	r3, r1
	rjmp	2f
1:	movw	r2, r0
	inc	r23
2:	tst	r3
	brmi	5f
3:	lsl	r6
	breq	6f
4:	rol	r4
	rol	r5
	lsl	r2
	rol	r3
	brpl	3b
	rjmp	5f
6:	rcall	fetch
	rjmp	4b
5:
	.endm

/* The next byte into r6 with the mark behind it, its first bit into the carry. */
fetch:
	ldd	r0, Y+LEFT
	ldd	r1, Y+LEFT+1
	ldd	r30, Y+LEFT+2
	cp	r0, r7
	cpc	r1, r7
	cpc	r30, r7
	breq	1f
	sec
	sbc	r0, r7
	sbc	r1, r7
	sbc	r30, r7
	std	Y+LEFT, r0
	std	Y+LEFT+1, r1
	std	Y+LEFT+2, r30
	ldd	r30, Y+CURSOR
	ldd	r31, Y+CURSOR+1
	ldd	r0, Y+CURSOR+2
#ifdef PG_TABLES_IN_NOR
	sbrc	r0, 7
	rjmp	nor
#endif
	out	RAMPZ_IO, r0
	elpm	r6, Z+
	in	r0, RAMPZ_IO
fetched:
	std	Y+CURSOR, r30
	std	Y+CURSOR+1, r31
	std	Y+CURSOR+2, r0
	sec
	rol	r6
	ret
1:	ldi	r30, 1
	std	Y+FAULT, r30
	clr	r6
	sec
	rol	r6
	ret

#ifdef PG_TABLES_IN_NOR
/* As pg_nor_next: the byte at r0:Z out of the serial flash into r6, r0:Z counted on. */
nor:
	lds	r1, pg_nor_at
	cp	r1, r30
	lds	r1, pg_nor_at+1
	cpc	r1, r31
	lds	r1, pg_nor_at+2
	cpc	r1, r0
	brne	3f
1:	adiw	r30, 1
	adc	r0, r7
	sts	pg_nor_at, r30
	sts	pg_nor_at+1, r31
	sts	pg_nor_at+2, r0
2:	in	r1, _SFR_IO_ADDR(SPSR)
	sbrs	r1, SPIF
	rjmp	2b
	in	r6, _SFR_IO_ADDR(SPDR)
	out	_SFR_IO_ADDR(SPDR), r7
	rjmp	fetched
3:	in	r1, _SFR_IO_ADDR(SREG) /* elsewhere: begin there; all is kept, T too */
	.irp	r, 0, 1, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27, 30, 31
	push	r\r
	.endr
	movw	r22, r30
	mov	r24, r0
	clr	r25
	clr	r1
	call	pg_nor_goto
	.irp	r, 31, 30, 27, 26, 25, 24, 23, 22, 21, 20, 19, 18, 1, 0
	pop	r\r
	.endr
	out	_SFR_IO_ADDR(SREG), r1
	rjmp	1b
#endif

/* Decodes a bit in context X into r23; r22 and Z change. */
	.macro alone
	ld	r30, X
	ldi	r31, hi8(pg_states + 512)
	lpm	r30, Z
	asr	r30
	inc	r31
	lpm	r22, Z
	split
	ld	r30, X
	ldi	r31, hi8(pg_states)
	add	r31, r23
	lpm	r30, Z
	st	X, r30
	.endm

single:
	alone
	ret

/* Decodes a bit of chance 1/2 into r23. */
half:
	ldi	r22, 128
	split
	ret

/* pg_single: a bit in the context at r23:r22, or of chance 1/2 without one. */
	.global	pg_single
	.type	pg_single, @function
pg_single:
	.irp	r, 2, 3, 4, 5, 6, 7, 28, 29
	push	r\r
	.endr
	movw	r28, r24
	movw	r26, r22
	ldd	r2, Y+RANGE
	ldd	r3, Y+RANGE+1
	ldd	r4, Y+VALUE
	ldd	r5, Y+VALUE+1
	ldd	r6, Y+BITS
	clr	r7
	tst	r27
	breq	1f		/* memory begins above the first 256 bytes */
	rcall	single
	rjmp	2f
1:	rcall	half
2:	std	Y+RANGE, r2
	std	Y+RANGE+1, r3
	std	Y+VALUE, r4
	std	Y+VALUE+1, r5
	std	Y+BITS, r6
	mov	r24, r23
	clr	r1
	.irp	r, 29, 28, 7, 6, 5, 4, 3, 2
	pop	r\r
	.endr
	ret
	.size	pg_single, . - pg_single

/* Decodes a bit in contexts X and r21:r20 with weights at w into r23; r22, r24,
 * r25 and Z change. */
	.macro mixed w
	ld	r30, X
	ldi	r31, hi8(pg_states + 512)
	lpm	r24, Z
	movw	r30, r20
	ld	r30, Z
	ldi	r31, hi8(pg_states + 512)
	lpm	r25, Z
	ldd	r22, Y+\w+3
	muls	r22, r25
	movw	r30, r0
	ldd	r22, Y+\w+1
	muls	r22, r24
	add	r30, r0
	adc	r31, r1
	lsl	r30
	rol	r31
	brvc	8f
	ldi	r31, 127
	brcc	8f
	ldi	r31, -127
8:	mov	r30, r31
	ldi	r31, hi8(pg_states + 768)
	lpm	r22, Z
	split
	sbrc	r23, 0		/* half of what the bit was off, 1 being 256 */
	neg	r22
	lsr	r22
	sbrs	r23, 0
	neg	r22
	muls	r22, r24
	.rept	4
	asr	r1
	ror	r0
	.endr
	ldd	r30, Y+\w
	ldd	r31, Y+\w+1
	add	r30, r0
	adc	r31, r1
	std	Y+\w, r30
	std	Y+\w+1, r31
	muls	r22, r25
	.rept	4
	asr	r1
	ror	r0
	.endr
	ldd	r30, Y+\w+2
	ldd	r31, Y+\w+3
	add	r30, r0
	adc	r31, r1
	std	Y+\w+2, r30
	std	Y+\w+3, r31
	ldi	r31, hi8(pg_states)
	add	r31, r23
	mov	r24, r31
	ld	r30, X
	lpm	r30, Z
	st	X, r30
	movw	r30, r20
	ld	r30, Z
	mov	r31, r24
	lpm	r22, Z
	movw	r30, r20
	st	Z, r22
	.endm
