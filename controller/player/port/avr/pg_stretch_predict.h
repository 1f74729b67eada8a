/* A part of pg_stretch.S, with its registers: what a sample is expected to be. */

/* The prediction into r18 by the correction r24, 2 to 5. */
predict:
	cpi	r24, 3
	breq	before
	brsh	1f
	mov	r30, r16	/* 2: base + half of last - before */
	clr	r31
	sub	r30, r15
	sbc	r31, r7
	asr	r31
	ror	r30
	add	r30, r14
	adc	r31, r7
	rjmp	limit
1:	cpi	r24, 5
	breq	again
	mov	r22, r19	/* 4: twice was, less what it was before */
	clr	r23
	lsl	r22
	rol	r23
	ldd	r30, Y+OLDER
	ldd	r31, Y+OLDER+1
	ld	r24, Z
	sub	r22, r24
	sbc	r23, r7
	ldd	r24, Y+STRIDE
	add	r30, r24
	adc	r31, r7
	std	Y+OLDER, r30
	std	Y+OLDER+1, r31
	movw	r30, r22
	rjmp	limit
again:
	movw	r30, r12
	ld	r24, Z
	mov	r30, r14
	clr	r31
	cpi	r24, 1
	breq	3f
	cpi	r24, 2
	brne	limit
	sbiw	r30, 1
	rjmp	limit
3:	adiw	r30, 1
	rjmp	limit
before:
	mov	r30, r16
	clr	r31
limit:	/* within 0..hi */
	tst	r31
	brmi	5f
	ldd	r18, Y+HI
	brne	4f		/* flags of tst: above 255 */
	cp	r18, r30
	brlo	4f
	mov	r18, r30
4:	ret
5:	clr	r18
	ret
