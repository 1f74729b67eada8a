; A part of pg_pixels.S, with its registers: what is done between the edges of a bit.
; The letter at the end of a name says between which.

; ---- the work of every byte: the code after this one

.macro take_a
	mov cur, next
	pad 2
.endm
.macro order_c              ; where in the pixel it stands
	movw r30, r28
	add r30, die
	adc r31, zero
	ldd offset, Z+ORDER
	pad 3
.endm
.macro fetch_c              ; what the clip shows
	movw r30, codes
	add r30, offset
	adc r31, zero
	ld shown, Z
	pad 3
.endm
.macro fetch_frozen_c       ; what a crossfade comes from
	movw r30, frozen
	add r30, offset
	adc r31, zero
	ld before, Z
	pad 3
.endm
.macro mix_c                ; shown * weight, 1..256, kept as 0..255, so shown * (weight - 1) + shown
	mul shown, weight
	add r0, shown
	adc r1, zero
	movw mixed, r0
	pad 3
.endm
.macro mix_frozen_c         ; + before * (256 - weight); the upper byte is the mix
	mov t, weight
	com t
	mul before, t
	add mixed, r0
	adc code, r1
	pad 2
.endm
.macro scale_c              ; code * gain, 1..65536, kept as 0..65535: low byte first
	mul code, gain
	add r0, code
	adc r1, zero
	mov t, r1
	pad 3
.endm
.macro scale_hi_c
	mul code, gain_hi
	add r0, t
	adc r1, zero
	mov next, r1
	pad 3
.endm

; ---- the end of every byte

.macro guard_a
	ldd before, Y+GUARD
	ldi shown, 1
.endm
.macro middle_b
	ldi r30, lo8(pm(middle))
	ldi r31, hi8(pm(middle))
	pad 2
.endm
.macro watch_a
	out PG_TCNT, before
	out PG_TIFR, shown
	nop
.endm
.macro choose_b             ; the last byte of a pixel is sent by code of its own
	dec die
	brne 1f
	movw r30, last
1:	nop
.endm
.macro window_c             ; and on to the next byte
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

; ---- the last byte of a pixel: on to the next one of the stretch

.macro advance_a
	mov cur, next
	ld shown, X+
.endm
.macro advance_b
	ldd t, Y+KEY
	mul shown, t
.endm
.macro advance_c
	ldd t, Y+STEP
	add run, t
	adc run_hi, zero
	movw codes, run
	add codes, r0
	adc codes_hi, r1
	pad 1
.endm
.macro first_a
	ldd offset, Y+ORDER
	pad 1
.endm
.macro advance_frozen_b
	ldd t, Y+DIES
	add frozen, t
	adc frozen_hi, zero
.endm
.macro dies_a
	ldd die, Y+DIES
	pad 1
.endm
.macro after_a
	ldd r30, Y+AFTER
	pad 1
.endm
.macro after_hi_b
	ldd r31, Y+AFTER+1
	pad 2
.endm
.macro after_hi_a
	ldd r31, Y+AFTER+1
	pad 1
.endm
.macro count_b
	sbiw count, 1
	brne 1f
	movw last, r30
1:
.endm

; ---- or to the first one of the next stretch

.macro change_a
	mov cur, next
	adiw r28, STRETCH
.endm
.macro change_b
	ldd run, Y+FROM
	ldd run_hi, Y+FROM+1
.endm
.macro change_c
	ldd r26, Y+INDEX
	ldd r27, Y+INDEX+1
	ld shown, X+
	ldd t, Y+KEY
.endm
.macro codes_a
	mul shown, t
	movw codes, run
.endm
.macro codes_b
	add codes, r0
	adc codes_hi, r1
	ldd offset, Y+ORDER
.endm
.macro change_frozen_b
	ldd frozen, Y+FROZEN
	ldd frozen_hi, Y+FROZEN+1
.endm
.macro gain_b
	ldd gain, Y+GAIN
	ldd gain_hi, Y+GAIN+1
.endm
.macro advancing_a
	ldi last, lo8(pm(advance))
	ldi last_hi, hi8(pm(advance))
	nop
.endm
.macro new_count_b
	ldd count, Y+COUNT
	ldd count_hi, Y+COUNT+1
.endm
