// Package shell puts a layer of invented matrix of known volume on a scan, so
// that the whole way from two scans to a removed volume can be tried on real
// surfaces. It is for tests only; nothing it makes is kept.
//
// The layer grows from a smooth broad place of the scan along smoothed normals,
// T·(1-x²)² thick at x radii from its middle, so it ends without a step. Over
// every face it is a prism with ruled sides, whose volume has a closed form;
// On checks that each is positive everywhere, that the layer meets neither
// itself nor the rest of the scan, and that four counts of its volume agree.
//
// The scan with the layer on it is then cut anew by sampling its exact facets:
// every face is divided at a third of its edges and every vertex slid to a
// place inside a facet, so that the two scans share no vertex and no
// connection.
package shell
