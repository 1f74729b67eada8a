/* pg_blend_keys and pg_blend_field for AVR controllers: the functions of those
 * names in blend.c, step by step, which say what is done; here is how. Tests run
 * the same clips through both.
 *
 * Registers      r15:r14 key after   r13:r12 codes   r11:r10 rounding errors
 *   r9 1 where there are any   r17 always 0   r18 w   r19 how many
 *   Y key before   r25:r24 light of the key before, then between   r23:r22 after
 */
#include "panel_config.h"

#if PG_KEYS_CLIPS

/* Where keys.h's struct has what; blend.c holds it to these. */
#define BEFORE 0
#define AFTER 2
#define OUT 4
#define REST 6
#define MAP 8
#define TOP 10
#define WEIGHT 12
#define COUNT 13
#define DIES 14

	.section .text.pg_blend, "ax", @progbits

/* Light r25:r24 moved towards r23:r22 by w, rounded down. */
	.macro between
	sub	r22, r24
	sbc	r23, r25
	brcs	1f
	mul	r22, r18
	add	r24, r1
	adc	r25, r17
	mul	r23, r18
	add	r24, r0
	adc	r25, r1
	rjmp	2f
1:	com	r23
	neg	r22
	sbci	r23, -1
	mul	r22, r18
	cp	r17, r0		/* down, so up here */
	sbc	r24, r1
	sbc	r25, r17
	mul	r23, r18
	sub	r24, r0
	sbc	r25, r1
2:
	.endm

	.macro enter
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
	movw	r30, r24
	ldd	r28, Z+BEFORE
	ldd	r29, Z+BEFORE+1
	ldd	r14, Z+AFTER
	ldd	r15, Z+AFTER+1
	ldd	r12, Z+OUT
	ldd	r13, Z+OUT+1
	ldd	r10, Z+REST
	ldd	r11, Z+REST+1
	clr	r9
	mov	r0, r10
	or	r0, r11
	breq	1f
	inc	r9
1:	clr	r17
	ldd	r18, Z+WEIGHT
	ldd	r19, Z+COUNT
	.endm

	.macro leave
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
	ret
	.endm

	.global	pg_blend_keys
	.type	pg_blend_keys, @function
pg_blend_keys:
	enter
	ldd	r20, Z+TOP
	ldd	r21, Z+TOP+1
key:
	ld	r30, Y+
	movw	r26, r14
	ld	r16, X+
	movw	r14, r26
	cp	r30, r16
	ldi	r31, hi8(pg_curve)	/* no flag changes until breq */
	lpm	r24, Z
	ldi	r31, hi8(pg_curve + 256)
	lpm	r25, Z
	breq	3f
	mov	r30, r16
	lpm	r23, Z
	ldi	r31, hi8(pg_curve)
	lpm	r22, Z
	between
3:	mul	r25, r21	/* times top / 65536 */
	movw	r26, r0
	mul	r24, r20
	mov	r16, r1
	mul	r25, r20
	add	r16, r0
	adc	r26, r1
	adc	r27, r17
	mul	r24, r21
	add	r16, r0
	adc	r26, r1
	adc	r27, r17
	sbrc	r9, 0
	rjmp	5f
	lsl	r26		/* half a code up */
	adc	r27, r17
4:	mov	r16, r27
	movw	r26, r12
	st	X+, r16
	movw	r12, r26
	dec	r19
	breq	6f
	rjmp	key
5:	movw	r30, r10
	ld	r16, Z
	add	r26, r16
	adc	r27, r17
	st	Z+, r26
	movw	r10, r30
	rjmp	4b
6:	leave
	.size	pg_blend_keys, . - pg_blend_keys

/* The rounding error of the last die to r25:r24, and the new one in its place; 0 is
 * left of it in r24. */
carry:
	movw	r6, r30
	movw	r30, r10
	ld	r0, Z
	add	r24, r0
	adc	r25, r17
	st	Z+, r24
	clr	r24
	movw	r10, r30
	movw	r30, r6
	ret

	.macro put
	sbrc	r9, 0
	rcall	carry
	lsl	r24		/* half a code up */
	adc	r25, r17
	st	X+, r25
	.endm

	.global	pg_blend_field
	.type	pg_blend_field, @function
pg_blend_field:
	enter
	ldd	r20, Z+MAP
	ldd	r21, Z+MAP+1
	ldd	r8, Z+DIES
	movw	r26, r12
pixel:
	ld	r24, Y+
	movw	r30, r14
	ld	r25, Z+
	movw	r14, r30
	mov	r16, r8
	lsl	r16		/* bytes of an entry */
	mul	r24, r16
	movw	r30, r0
	add	r30, r20
	adc	r31, r21
	cp	r24, r25
	breq	same
	movw	r12, r28
	mul	r25, r16
	movw	r28, r0
	add	r28, r20
	adc	r29, r21
	mov	r16, r8
3:	ld	r24, Z+
	ld	r25, Z+
	ld	r22, Y+
	ld	r23, Y+
	between
	put
	dec	r16
	brne	3b
	movw	r28, r12
	dec	r19
	breq	5f
	rjmp	pixel
same:
	mov	r16, r8
4:	ld	r24, Z+
	ld	r25, Z+
	put
	dec	r16
	brne	4b
	dec	r19
	breq	5f
	rjmp	pixel
5:	leave
	.size	pg_blend_field, . - pg_blend_field

#endif
