/* pg_add_product and pg_divide of wide.h. */

	.section .text.pg_wide, "ax", @progbits
	.global pg_add_product, pg_divide
	.type pg_add_product, @function
	.type pg_divide, @function

/* r25:r24 sum, r22:r20 a, r19:r16 b. The product grows from the left: r25 r24 r31
 * r30 above what is left of a. About 430 cycles. */
pg_add_product:
	movw	r26, r24
	clr	r30
	clr	r31
	movw	r24, r30
	ldi	r23, 24
1:	clc
	sbrs	r20, 0
	rjmp	2f
	add	r30, r16
	adc	r31, r17
	adc	r24, r18
	adc	r25, r19
2:	ror	r25
	ror	r24
	ror	r31
	ror	r30
	ror	r22
	ror	r21
	ror	r20
	dec	r23
	brne	1b
	ld	r0, X
	add	r0, r20
	st	X+, r0
	ld	r0, X
	adc	r0, r21
	st	X+, r0
	ld	r0, X
	adc	r0, r22
	st	X+, r0
	ld	r0, X
	adc	r0, r30
	st	X+, r0
	ld	r0, X
	adc	r0, r31
	st	X+, r0
	ld	r0, X
	adc	r0, r24
	st	X+, r0
	ld	r0, X
	adc	r0, r25
	st	X+, r0
	ret
	.size pg_add_product, . - pg_add_product

/* r25:r24 n, r18 r23:r20 the divisor. Bit by bit: n leaves r19 r31 r30 r27:r24 at the
 * top for the rest r16:r12, and the quotient comes in below. About 1,500 cycles. */
pg_divide:
	push	r12
	push	r13
	push	r14
	push	r15
	push	r16
	push	r17
	movw	r30, r24
	ld	r24, Z
	ldd	r25, Z+1
	ldd	r26, Z+2
	ldd	r27, Z+3
	ldd	r0, Z+4
	ldd	r19, Z+6
	ldd	r31, Z+5
	mov	r30, r0
	clr	r12
	clr	r13
	movw	r14, r12
	clr	r16
	ldi	r17, 56
1:	lsl	r24
	rol	r25
	rol	r26
	rol	r27
	rol	r30
	rol	r31
	rol	r19
	rol	r12
	rol	r13
	rol	r14
	rol	r15
	rol	r16
	brcs	2f
	cp	r12, r20
	cpc	r13, r21
	cpc	r14, r22
	cpc	r15, r23
	cpc	r16, r18
	brcs	3f
2:	sub	r12, r20
	sbc	r13, r21
	sbc	r14, r22
	sbc	r15, r23
	sbc	r16, r18
	inc	r24
3:	dec	r17
	brne	1b
	movw	r22, r24
	movw	r24, r26
	or	r30, r31
	or	r30, r19
	breq	4f
	ldi	r22, 0xff
	ldi	r23, 0xff
	movw	r24, r22
4:	pop	r17
	pop	r16
	pop	r15
	pop	r14
	pop	r13
	pop	r12
	ret
	.size pg_divide, . - pg_divide
