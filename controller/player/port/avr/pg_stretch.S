/* pg_stretch for AVR controllers of more than 128 KiB of flash: decodes samples of
 * a plane. It is the function of that name in decode.c, step by step, which says
 * what is done; here is how. Tests run the same clips through both.
 *
 * Registers      r3:r2 range     r5:r4 value     r6 bits
 *   r9:r8 x      r11:r10 q       r13:r12 history, 0 none
 *   r14 base     r15 base of the sample before   r16 its value
 *   r17 base of the sample after   r18 prediction   r19 what the sample was
 *   X first context   r21:r20 second context   Y the decoder   r7 always 0
 *   T the residual is negative
 */
#include <avr/io.h>

/* Where decode.h's struct has what; decode.c holds it to these. */
#define RANGE 0
#define VALUE 2
#define BITS 4
#define FAULT 5
#define WEIGHTS 6
#define X_AT 14
#define Q_AT 16
#define HISTORY 18
#define OLDER 20
#define FIRST 22
#define SECOND 24
#define CELLS 26
#define STEP 28
#define STRIDE 29
#define BY 30
#define FREE 31
#define HI 32
#define PAIR 33
#define SHIFT 34
#define BASE 35
#define BEFORE 36
#define LAST 37
#define SIZE1 38
#define SIDE1 39
#define SIZE2 40
#define COUNT 41
#define UNITS 42
#define CURSOR 43
#define LEFT 46

#define RAMPZ_IO _SFR_IO_ADDR(RAMPZ)

	.section .text.pg_stretch, "ax", @progbits

#include "pg_stretch_bits.h"

/* near: the difference of two bytes limited to -2..2, plus 2. */
	.macro near to, minus
	sub	\to, \minus
	brcs	1f
	cpi	\to, 2
	brlo	2f
	ldi	\to, 2
2:	subi	\to, -2
	rjmp	3f
1:	cpi	\to, 255
	ldi	\to, 0
	brne	3f
	ldi	\to, 1
3:
	.endm

	.global	pg_stretch
	.type	pg_stretch, @function
pg_stretch:
	push	r2
	push	r3
	push	r4
	push	r5
	push	r6
	push	r7
	push	r8
	push	r9
	push	r10
	push	r11
	push	r12
	push	r13
	push	r14
	push	r15
	push	r16
	push	r17
	push	r28
	push	r29
	movw	r28, r24
	ldd	r2, Y+RANGE
	ldd	r3, Y+RANGE+1
	ldd	r4, Y+VALUE
	ldd	r5, Y+VALUE+1
	ldd	r6, Y+BITS
	clr	r7
	ldd	r8, Y+X_AT
	ldd	r9, Y+X_AT+1
	ldd	r10, Y+Q_AT
	ldd	r11, Y+Q_AT+1
	ldd	r12, Y+HISTORY
	ldd	r13, Y+HISTORY+1
	ldd	r14, Y+BASE
	ldd	r15, Y+BEFORE
	ldd	r16, Y+LAST

	ldd	r24, Y+COUNT
	tst	r24
	brne	sample
	rjmp	done
sample:
	ldd	r24, Y+STEP
	add	r10, r24
	adc	r11, r7
	movw	r30, r10
	ld	r17, Z
	movw	r30, r8
	ld	r19, Z
	mov	r18, r14
	ldd	r24, Y+BY
	cpi	r24, 1
	brlo	predicted
	breq	1f
	rcall	predict
	rjmp	predicted
1:	sub	r18, r15	/* base - before + last */
	brcs	2f
	add	r18, r16
	brcs	3f		/* above 255 */
	rjmp	4f
2:	add	r18, r16
	brcs	4f
	clr	r18		/* below 0 */
4:	ldd	r24, Y+HI
	cp	r24, r18
	brsh	predicted
3:	ldd	r18, Y+HI
predicted:
	ldd	r24, Y+FREE
	cpse	r24, r7
	rjmp	free
	mov	r22, r15
	near	r22, r18
	mov	r24, r22
	lsl	r22
	lsl	r22
	add	r22, r24	/* 5 near(before - p) */
	mov	r25, r17
	near	r25, r18
	add	r22, r25
	tst	r13		/* memory begins above the first 256 bytes */
	breq	slope
	movw	r30, r12
	ld	r23, Z
	mov	r24, r23
	andi	r24, 3
	cpi	r23, 4
	brlo	1f
	subi	r24, -3
	cpi	r23, 16
	brlo	1f
	subi	r24, -3
	cpi	r23, 64
	brlo	1f
	subi	r24, -3
1:	ldi	r23, 12
	rjmp	context
slope:	/* the sign of base + last - before - p, in two bytes, plus 1 */
	mov	r30, r14
	clr	r31
	add	r30, r16
	adc	r31, r7
	sub	r30, r15
	sbc	r31, r7
	sub	r30, r18
	sbc	r31, r7
	ldi	r24, 0
	brmi	1f
	ldi	r24, 1
	or	r30, r31
	breq	1f
	ldi	r24, 2
1:	ldi	r23, 3
context:
	mul	r22, r23
	add	r0, r24
	adc	r1, r7
	lsl	r0
	rol	r1
	ldd	r26, Y+FIRST
	ldd	r27, Y+FIRST+1
	add	r26, r0
	adc	r27, r1
	ldd	r24, Y+PAIR
	tst	r24
	brne	two
	alone
	tst	r23
	breq	1f
	rjmp	zero
1:	adiw	r26, 1
	rcall	single
	rjmp	residual
two:	ldi	r23, 1		/* the sign of was - p, plus 1 */
	cp	r19, r18
	breq	3f
	ldi	r23, 0
	brlo	3f
	ldi	r23, 2
3:	cpi	r24, 1
	brne	shape
	mov	r22, r18
	ldd	r24, Y+SHIFT
	tst	r24
	breq	5f
4:	lsr	r22
	dec	r24
	brne	4b
5:	ldi	r24, 3
	mul	r22, r24
	add	r0, r23
	adc	r1, r7
	rjmp	pair
shape:
	mov	r22, r16
	near	r22, r18
	mov	r24, r22
	lsl	r22
	lsl	r22
	add	r22, r24
	add	r22, r25
	mov	r24, r22
	lsl	r22
	add	r22, r24
	add	r22, r23
	ldi	r24, 3
	mul	r22, r24
	ldd	r24, Y+SIDE1
	add	r0, r24
	adc	r1, r7
pair:
	lsl	r0
	rol	r1
	ldd	r20, Y+SECOND
	ldd	r21, Y+SECOND+1
	add	r20, r0
	adc	r21, r1
	mixed	WEIGHTS
	tst	r23
	breq	1f
	rjmp	zero
1:	adiw	r26, 1
	subi	r20, lo8(-1)
	sbci	r21, hi8(-1)
	mixed	WEIGHTS+4

residual:
	bst	r23, 0
	ldd	r24, Y+SIZE1
	ldd	r25, Y+SIZE2
	mov	r22, r24
	cpi	r22, 4
	brlo	1f
	ldi	r22, 3
1:	mov	r23, r25
	cpi	r23, 4
	brlo	1f
	ldi	r23, 3
1:	lsl	r22
	lsl	r22
	add	r22, r23
	ldd	r26, Y+CELLS
	ldd	r27, Y+CELLS+1
	add	r26, r22
	adc	r27, r7
	rcall	single
	ldi	r21, 1
	tst	r23
	breq	sized
	adiw	r26, 16
	rcall	single
	ldi	r21, 2
	tst	r23
	breq	sized
	ldd	r24, Y+UNITS
	subi	r24, 7
	std	Y+UNITS, r24
	ldd	r24, Y+SIZE1
	add	r24, r25
	ror	r24
	lsr	r24
	lsr	r24
	cpi	r24, 4
	brlo	1f
	ldi	r24, 3
1:	swap	r24
	subi	r24, -32	/* the tails begin after the sizes */
	ldd	r26, Y+CELLS
	ldd	r27, Y+CELLS+1
	add	r26, r24
	adc	r27, r7
	ldi	r20, 0
	ldi	r21, 1
2:	rcall	single
	tst	r23
	breq	3f
	adiw	r26, 1
	inc	r20
	cpi	r20, 7
	brne	2b
3:	tst	r20
	breq	5f
	adiw	r26, 7
	rcall	single
	lsl	r21
	or	r21, r23
4:	dec	r20
	breq	5f
	rcall	half
	lsl	r21
	or	r21, r23
	rjmp	4b
5:	subi	r21, lo8(-2)
	cpi	r21, 2
	brsh	sized
	rjmp	wrong		/* more than 255 */
sized:
	ldi	r23, 0
	ldd	r24, Y+UNITS
	subi	r24, 2
	std	Y+UNITS, r24
	cpi	r24, 10
	brsh	1f
	ldi	r23, 128	/* no time for another */
1:	mov	r25, r18
	ldd	r24, Y+SIZE1
	std	Y+SIZE2, r24
	std	Y+SIZE1, r21
	brts	1f
	ldi	r24, 2
	std	Y+SIDE1, r24
	add	r25, r21
	brcs	wrong
	ldd	r24, Y+HI
	cp	r24, r25
	brlo	wrong
	rjmp	store
1:	std	Y+SIDE1, r7
	sub	r25, r21
	brcs	wrong
	rjmp	store
free:
	mov	r25, r18
	clr	r23
	rjmp	store
zero:
	ldd	r24, Y+SIZE1
	std	Y+SIZE2, r24
	std	Y+SIZE1, r7
	ldi	r24, 1
	std	Y+SIDE1, r24
	mov	r25, r18
store:
	movw	r30, r8
	st	Z, r25
	ldd	r24, Y+STRIDE
	add	r8, r24
	adc	r9, r7
	tst	r13
	breq	3f
	movw	r30, r12
	ldi	r22, 1
	cp	r19, r25
	brlo	2f
	ldi	r22, 2
	brne	2f
	ld	r22, Z
	cpi	r22, 64
	brsh	1f
	subi	r22, -4
1:
2:	st	Z, r22
	add	r12, r24
	adc	r13, r7
3:	mov	r15, r14
	mov	r16, r25
	mov	r14, r17
	ldd	r24, Y+COUNT
	dec	r24
	std	Y+COUNT, r24
	breq	done
	sbrs	r23, 7
	rjmp	sample
	rjmp	done

wrong:
	ldi	r24, 0
	rjmp	1f
done:
	ldi	r24, 1
1:	std	Y+RANGE, r2
	std	Y+RANGE+1, r3
	std	Y+VALUE, r4
	std	Y+VALUE+1, r5
	std	Y+BITS, r6
	std	Y+X_AT, r8
	std	Y+X_AT+1, r9
	std	Y+Q_AT, r10
	std	Y+Q_AT+1, r11
	std	Y+HISTORY, r12
	std	Y+HISTORY+1, r13
	std	Y+BASE, r14
	std	Y+BEFORE, r15
	std	Y+LAST, r16
	clr	r1
	pop	r29
	pop	r28
	pop	r17
	pop	r16
	pop	r15
	pop	r14
	pop	r13
	pop	r12
	pop	r11
	pop	r10
	pop	r9
	pop	r8
	pop	r7
	pop	r6
	pop	r5
	pop	r4
	pop	r3
	pop	r2
	ret

#include "pg_stretch_predict.h"

	.size	pg_stretch, . - pg_stretch
