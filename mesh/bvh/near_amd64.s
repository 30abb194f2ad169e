#include "textflag.h"

// DISTANCE turns Y4 = low - place and Y5 = place - high into the squared
// distance along one axis; Y15 is zero.
#define DISTANCE \
	VMAXPS Y5, Y4, Y4 \
	VMAXPS Y15, Y4, Y4 \
	VMULPS Y4, Y4, Y4

// NODE is one axis of eight boxes whose low and high sides stand at the given
// places in (AX).
#define NODE(low, high, place) \
	VMOVUPS low(AX), Y4 \
	VSUBPS  place, Y4, Y4 \
	VSUBPS  high(AX), place, Y5 \
	DISTANCE

// LEAF is the same with sides of one byte, in steps from a base.
#define LEAF(base, step, low, high, place) \
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
	DISTANCE

// PROBE loads the place into Y0, Y1, Y2 and the bound into Y3.
#define PROBE \
	MOVQ         p+8(FP), BX \
	MOVQ         d2+16(FP), CX \
	VBROADCASTSS 0(BX), Y0 \
	VBROADCASTSS 4(BX), Y1 \
	VBROADCASTSS 8(BX), Y2 \
	VBROADCASTSS 12(BX), Y3 \
	VXORPS       Y15, Y15, Y15

// ANSWER adds the three axes, stores the sums and returns where they are no
// more than the bound (2: less or equal, false where not a number).
#define ANSWER \
	VADDPS    Y9, Y8, Y8 \
	VADDPS    Y4, Y8, Y8 \
	VMOVUPS   Y8, (CX) \
	VCMPPS    $2, Y3, Y8, Y8 \
	VMOVMSKPS Y8, AX \
	VZEROUPPER \
	MOVL      AX, ret+24(FP) \
	RET

// func nearNode(n *node, p *probe, d2 *[8]float32) uint32
TEXT ·nearNode(SB), NOSPLIT, $0-28
	MOVQ n+0(FP), AX
	PROBE
	NODE(0, 32, Y0)
	VMOVAPS Y4, Y8
	NODE(64, 96, Y1)
	VMOVAPS Y4, Y9
	NODE(128, 160, Y2)
	ANSWER

// func nearLeaf(l *leaf, p *probe, d2 *[8]float32) uint32
TEXT ·nearLeaf(SB), NOSPLIT, $0-28
	MOVQ l+0(FP), AX
	PROBE
	LEAF(0, 12, 24, 32, Y0)
	VMOVAPS Y4, Y8
	LEAF(4, 16, 40, 48, Y1)
	VMOVAPS Y4, Y9
	LEAF(8, 20, 56, 64, Y2)
	ANSWER
