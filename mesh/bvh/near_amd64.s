#include "textflag.h"

// AXIS is the squared distance along one axis, in Y4, from a place to eight
// boxes with sides of one byte, in steps from a base; the numbers are where each
// stands in (AX), Y15 is zero.
#define AXIS(base, step, low, high, place) \
	VBROADCASTSS base(AX), Y6 \
	VBROADCASTSS step(AX), Y7 \
	VSUBPS       Y6, place, Y6 \
	VPMOVZXBD    low(AX), Y4 \
	VPMOVZXBD    high(AX), Y5 \
	VCVTDQ2PS    Y4, Y4 \
	VCVTDQ2PS    Y5, Y5 \
	VMULPS       Y7, Y4, Y4 \
	VMULPS       Y7, Y5, Y5 \
	VSUBPS       Y6, Y4, Y4 \
	VSUBPS       Y5, Y6, Y5 \
	VMAXPS       Y5, Y4, Y4 \
	VMAXPS       Y15, Y4, Y4 \
	VMULPS       Y4, Y4, Y4

// func near8(n *eight, p *probe, d2 *[8]float32) uint32
TEXT ·near8(SB), NOSPLIT, $0-28
	MOVQ         n+0(FP), AX
	MOVQ         p+8(FP), BX
	MOVQ         d2+16(FP), CX
	VBROADCASTSS 0(BX), Y0
	VBROADCASTSS 4(BX), Y1
	VBROADCASTSS 8(BX), Y2
	VBROADCASTSS 12(BX), Y3
	VXORPS       Y15, Y15, Y15
	AXIS(0, 12, 24, 32, Y0)
	VMOVAPS      Y4, Y8
	AXIS(4, 16, 40, 48, Y1)
	VADDPS       Y4, Y8, Y8
	AXIS(8, 20, 56, 64, Y2)
	VADDPS       Y4, Y8, Y8
	VMOVUPS      Y8, (CX)

	// 2: less or equal, false where not a number.
	VCMPPS    $2, Y3, Y8, Y8
	VMOVMSKPS Y8, AX
	VZEROUPPER
	MOVL      AX, ret+24(FP)
	RET
