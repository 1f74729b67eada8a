; Several data lines at once: bits in even time, on all pins of PG_TOGETHER.
;
; One bit is PG_BIT cycles: the lines that are sent rise at 0, those with a 0 fall at
; PG_HIGH0, those with a 1 at PG_HIGH1, all by writing masks to PINx, which turns pins
; and leaves others alone. The masks are taken from a row that was turned before
; (pg_together_turn): what is left of a bit's time is enough to get the next one's, and
; to go from run to run where a line has ended.
;
;	T0        out   rise of the active lines
;	    A     4 cycles of work
;	T0H       out   fall of the zeros
;	    B     5 cycles
;	T1H       out   fall of the ones
;	    C     8 cycles
;	T0 of the next
;
; The pause after each byte is that of pg_pixels.S, cycle for cycle: window, watch,
; guard and slack are the same.

#include "pg_together.h"

#if PG_TOGETHER

#define EXTRA_A (PG_HIGH0 - 5)
#define EXTRA_B (PG_HIGH1 - PG_HIGH0 - 6)
#define EXTRA_C (PG_BIT - PG_HIGH1 - 9)

#define RUN 5               /* bytes of struct pg_run */

#define one r3
#define guard r4
#define active r5           /* lines of this byte */
#define coming r6           /* and of the next */
#define after r7            /* and of the next run */
#define zeros r8
#define zeros1 r9           /* of a byte's first bit */
#define ones r16
#define ones1 r17
#define cur r18             /* from the row */
#define step r19
#define go r20              /* of the next run */
#define go_hi r21
#define more r22            /* bytes of the next run */
#define more_hi r23
#define count r24
#define count_hi r25

.macro pad n
	.rept (\n) / 2
	rjmp .+0
	.endr
	.rept (\n) % 2
	nop
	.endr
.endm

; ---- the masks of a bit, from the row

.macro masks_of o, z
	mov \z, \o
	eor \z, active
.endm

#if PG_ROW_MASKS == 4
; Two bits a byte: the upper half is the first.
.macro first_half o
	mov \o, cur
	swap \o
	andi \o, 15
.endm
.macro upper_c
	ld cur, X+
	first_half ones
	masks_of ones, zeros
	pad 1
.endm
.macro lower_c
	mov ones, cur
	andi ones, 15
	masks_of ones, zeros
	pad 4
.endm
.macro last_c               ; and the next byte's first
	mov ones, cur
	andi ones, 15
	masks_of ones, zeros
	ld cur, X+
	pad 2
.endm
.macro ready_b
	first_half ones1
	masks_of ones1, zeros1
.endm
#else
.macro upper_c
	ld ones, X+
	masks_of ones, zeros
	pad 4
.endm
.macro lower_c
	upper_c
.endm
.macro last_c
	ld ones, X+
	masks_of ones, zeros
	ld cur, X+
	pad 2
.endm
.macro ready_b
	mov ones1, cur
	masks_of ones1, zeros1
	pad 2
.endm
#endif

; ---- from run to run: the next one's fields are taken, and used when this one's
; last byte is under way

.macro idle_a
	pad 4
.endm
.macro idle_b
	pad 5
.endm
.macro more_a
	ldd more, Y+0
	ldd more_hi, Y+1
.endm
.macro after_b
	ldd after, Y+2
	ldd go, Y+3
	pad 1
.endm
.macro go_a
	ldd go_hi, Y+4
	pad 2
.endm
.macro count_b
	ldi step, 0
	sbiw count, 1
	brne 1f
	ldi step, RUN
1:
.endm
.macro change_a
	sbrc step, 0
	movw count, more
	sbrc step, 0
	mov coming, after
.endm
.macro change_b
	sbrc step, 0
	movw r30, go
	add r28, step
	adc r29, r1
	pad 1
.endm

; ---- the pause

.macro watch_a
	out PG_TCNT, guard
	out PG_TIFR, one
	mov active, coming
	pad 1
.endm
.macro window_c
	pad EXTRA_C + 1
#ifdef PG_INTERRUPTS_OFF
	pad 3
#else
	sei
	nop
	cli
#endif
	sbic PG_TIFR, 0
	rjmp late
	ijmp
.endm

; ---- a bit

.macro bit z, o, a, b, c
	out PG_PIN, active
	\a
	pad EXTRA_A
	out PG_PIN, \z
	\b
	pad EXTRA_B
	out PG_PIN, \o
	\c
.endm
.macro more_bits a, b, c
	bit zeros, ones, \a, \b, \c
	pad EXTRA_C
.endm

	.section .text.pg_together, "ax", @progbits
	.global pg_together_send, pg_together_byte, pg_together_end, pg_together_put, pg_together_turn
	.type pg_together_send, @function

; uint8_t pg_together_send(const uint8_t *rows, const struct pg_run *first, uint8_t guard)
pg_together_send:
	push r3
	push r4
	push r5
	push r6
	push r7
	push r8
	push r9
	push r16
	push r17
	push r28
	push r29
	movw r26, r24
	movw r28, r22
	clr one
	inc one
	mov guard, r20
	ldd count, Y+0
	ldd count_hi, Y+1
	ldd active, Y+2
	ldd r30, Y+3
	ldd r31, Y+4
	adiw r28, RUN
	mov coming, active
	ld cur, X+
	ready_b

pg_together_byte:
	bit zeros1, ones1, more_a, after_b, lower_c
	pad EXTRA_C
	more_bits go_a, count_b, upper_c
	more_bits change_a, change_b, lower_c
	more_bits idle_a, idle_b, upper_c
	more_bits idle_a, idle_b, lower_c
	more_bits idle_a, idle_b, upper_c
	more_bits idle_a, idle_b, last_c
	bit zeros, ones, watch_a, ready_b, window_c

late:
	ldi r24, 1
	rjmp out
pg_together_end:
	clr r24
out:
	clr r25
	pop r29
	pop r28
	pop r17
	pop r16
	pop r9
	pop r8
	pop r7
	pop r6
	pop r5
	pop r4
	pop r3
	ret
	.size pg_together_send, . - pg_together_send

; void pg_together_put(uint8_t *to, const uint8_t *codes, uint8_t n, uint8_t dies, uint16_t gain)
; 20 cycles a code, the gain worked out as in pg_pixels.S; 11 where there is none.

	.type pg_together_put, @function
pg_together_put:
	movw r30, r24
	movw r26, r22
	mov r25, r18            ; rows from pixel to pixel
	lsl r25
	lsl r25
#if PG_ROW_MASKS == 8
	lsl r25
#endif
	clr r24
	mov r21, r16
	and r21, r17
	inc r21                 ; 65535
	breq 2f
1:	ld r19, X
	add r26, r18
	adc r27, r24
	mul r19, r16
	add r0, r19
	adc r1, r24
	mov r21, r1
	mul r19, r17
	add r0, r21
	adc r1, r24
	st Z, r1
	add r30, r25
	adc r31, r24
	dec r20
	brne 1b
	clr r1
	ret
2:	ld r19, X
	st Z, r19
	add r26, r18
	adc r27, r24
	add r30, r25
	adc r31, r24
	dec r20
	brne 2b
	ret
	.size pg_together_put, . - pg_together_put

; void pg_together_turn(uint8_t *rows, uint16_t n, uint8_t active)
; A row's bytes are shifted out of their registers together, the one of the highest
; pin first. Pins without a line have neither.

	.type pg_together_turn, @function

.macro take pin, reg
	.if PG_TOGETHER & (1 << (\pin))
	ld \reg, X+
	.else
	adiw r26, 1
	.endif
.endm
.macro shift pin, reg
	.if PG_TOGETHER & (1 << (\pin))
	lsl \reg
	rol r25
	.else
	lsl r25
	.endif
.endm

.macro mask
#if PG_ROW_MASKS == 4
	.rept 2
#else
	shift 7, r31
	shift 6, r30
	shift 5, r17
	shift 4, r16
	.rept 1
#endif
	shift 3, r21
	shift 2, r20
	shift 1, r19
	shift 0, r18
	.endr
	and r25, r24            ; lines that have ended hold what was there before
	st X+, r25
.endm

pg_together_turn:
#if PG_ROW_MASKS == 8
	push r16
	push r17
#endif
	movw r26, r24
	mov r24, r20
#if PG_ROW_MASKS == 4
	swap r24
	or r24, r20             ; two bits a byte
#endif
	rjmp 2f
1:
	take 0, r18
	take 1, r19
	take 2, r20
	take 3, r21
#if PG_ROW_MASKS == 8
	take 4, r16
	take 5, r17
	take 6, r30
	take 7, r31
#endif
	sbiw r26, PG_ROW_MASKS
	.rept PG_ROW_MASKS
	mask
	.endr
	subi r22, 1
	sbci r23, 0
2:	cp r22, r1
	cpc r23, r1
	breq 3f
	rjmp 1b
3:
#if PG_ROW_MASKS == 8
	pop r17
	pop r16
#endif
	ret
	.size pg_together_turn, . - pg_together_turn

#endif
