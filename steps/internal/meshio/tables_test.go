package meshio

import "testing"

// The counts, areas and volumes below are those of expected.json and of the
// INFO.txt beside the files, made by other readers; where those failed on a
// dialect (03, 04, 12, 63, numpy-stl's binary HalfDonut, fuze_ascii, wallhole,
// whitespace.off) they are those of the same solid in another file, or ours.

// own-format-cases-a
func TestOwnFormatCasesA(t *testing.T) {
	cases := []fileCase{
		{file: "01_ascii_plain.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "02_ascii_crlf.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "03_ascii_cr_only.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "04_ascii_upper.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "05_ascii_exponents.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "06_ascii_tabs_name.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "07_ascii_zero_normals.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "08_ascii_no_endsolid.stl", verts: 8, tris: 12, area: 5200, volume: 24000, note: `the last solid has no endsolid line, but its 12 triangles are whole`},
		{file: "09_ascii_comma_decimals.stl", wantErr: `line 2: "-1,0000" has a decimal comma: export again with decimal points, in triangle 1`},
		{file: "10_ascii_truncated.stl", wantErr: `line 54: the file ends inside triangle 8; export or copy it again`},
		{file: "11_ascii_two_solids.stl", verts: 16, tris: 24, area: 10400, volume: 48000},
		{file: "12_ascii_bom.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "20_binary_plain.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "21_binary_solid_header.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "22_binary_count_too_high.stl", wantErr: `byte 684: the file ends too early: its head promises 20 facets, 12 are there whole; export or copy it again`},
		{file: "23_binary_count_too_low.stl", wantErr: `byte 80: the head promises 7 facets, but the file goes on and has room for 12; export it again`},
		{file: "24_binary_count_zero.stl", wantErr: `byte 80: the head promises 0 facets, but the file goes on and has room for 12; export it again`},
		{file: "25_binary_truncated.stl", wantErr: `byte 667: the file ends too early: its head promises 12 facets, 11 are there whole; export or copy it again`},
		{file: "26_binary_trailing_bytes.stl", verts: 8, tris: 12, area: 5200, volume: 24000, note: `the last 37 of the file's bytes, too few for a facet, were passed over`},
		{file: "27_binary_colour_attribute.stl", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "28_binary_huge_count.stl", wantErr: `byte 684: the file ends too early: its head promises 4294967295 facets, 12 are there whole; export or copy it again`},
		{file: "29_empty.stl", wantErr: `the file is empty: not one byte; export it again`},
		{file: "40_ascii.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "41_little.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "42_big.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "43_big_double_ushort_list.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "44_vertex_index_name.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "45_quads_ascii.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "46_extra_properties_little.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "47_extra_properties_ascii_crlf.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "48_crlf_header_binary.ply", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "49_truncated.ply", wantErr: `byte 438: a list of 3 numbers where 5 bytes are left, in face 11 of 12`},
		{file: "50_index_out_of_range.ply", wantErr: `line 20: face 1 of 12 names vertex 99, but there are 8, counted from 0`},
		{file: "60_plain.obj", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "61_negative_indices.obj", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "62_quads_crlf.obj", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "63_line_continuation.obj", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "64_vertex_colours.obj", verts: 8, tris: 12, area: 5200, volume: 24000},
		{file: "65_index_zero.obj", wantErr: `line 13: a face names vertex 0; OBJ counts from 1`},
		{file: "66_no_last_newline.obj", verts: 8, tris: 12, area: 5200, volume: 24000},
	}
	for _, c := range cases {
		c.run(t, "own-format-cases-a")
	}
}

// stl-reader-cases
func TestStlReaderCases(t *testing.T) {
	cases := []fileCase{
		{file: "hschendel-stl/complex_bin.stl", verts: 15240, tris: 30476, area: 53709.6, volume: 207171},
		{file: "hschendel-stl/confusingheader_bin.stl", verts: 4, tris: 4, area: 2.36603, volume: 0.166667},
		{file: "hschendel-stl/simple_ascii.stl", verts: 4, tris: 4, area: 2.36603, volume: 0.166667},
		{file: "hschendel-stl/simple_bin.stl", verts: 4, tris: 4, area: 2.36603, volume: 0.166667},
		{file: "numpy-stl/stl_ascii/Cube.stl", verts: 8, tris: 12, area: 24, volume: 8},
		{file: "numpy-stl/stl_ascii/HalfDonut.stl", verts: 144, tris: 288, area: 15.773, volume: 2.34315},
		{file: "numpy-stl/stl_ascii/Moon.stl", verts: 60, tris: 116, area: 7.77263, volume: 0.888723},
		{file: "numpy-stl/stl_ascii/Moon_Chinese.stl", verts: 60, tris: 116, area: 7.77263, volume: 0.888723},
		{file: "numpy-stl/stl_ascii/Star.stl", verts: 36, tris: 68, area: 11.2682, volume: 1.4166},
		{file: "numpy-stl/stl_binary/Cube.stl", verts: 8, tris: 12, area: 24, volume: 8},
		{file: "numpy-stl/stl_binary/CubeInvalidUnicode.stl", verts: 8, tris: 12, area: 24, volume: 8},
		{file: "numpy-stl/stl_binary/HalfDonut.stl", verts: 144, tris: 288, area: 15.773, volume: 2.34315, note: `the last 1 of the file's bytes, too few for a facet, were passed over`},
		{file: "numpy-stl/stl_binary/Moon.stl", verts: 60, tris: 116, area: 7.77263, volume: 0.888723},
		{file: "numpy-stl/stl_binary/Star.stl", verts: 36, tris: 68, area: 11.2682, volume: 1.4166},
		{file: "numpy-stl/stl_binary/StarWithEmptyHeader.stl", verts: 36, tris: 68, area: 11.2682, volume: 1.4166},
		{file: "numpy-stl/stl_binary/rear_case.stl", verts: 9404, tris: 18808, area: 19440.6, volume: 38229.9},
		{file: "numpy-stl/stl_tests/triamid.stl", verts: 7, tris: 10, area: 37.8564, volume: -8},
	}
	for _, c := range cases {
		c.run(t, "stl-reader-cases")
	}
}

// trimesh-cases
func TestTrimeshCases(t *testing.T) {
	cases := []fileCase{
		{file: "1002_tray_bottom.STL", verts: 2216, tris: 4520, area: 224415, volume: 347866},
		{file: "20mm-xyz-cube.stl", verts: 132, tris: 260, area: 2499.02, volume: 7938.68},
		{file: "7_8ths_cube.stl", verts: 14, tris: 24, area: 9600, volume: 56000},
		{file: "angle_block.STL", verts: 398, tris: 704, area: 9.38734, volume: 1.14552},
		{file: "capsule.obj", verts: 5002, tris: 10200, area: 18.8382, volume: 7.32143},
		{file: "comments.off", verts: 8, tris: 12, area: 32, volume: 12.3168},
		{file: "cycloidal.ply", verts: 21384, tris: 43368, area: 48.8417, volume: 1.86564},
		{file: "cylinder.stl", verts: 210, tris: 416, area: 56.5184, volume: 25.0924},
		{file: "empty.obj", wantErr: `this OBJ holds no points and no triangles; export it again`},
		{file: "empty.ply", wantErr: `this PLY as text holds no points and no triangles; export it again`},
		{file: "empty.stl", wantErr: `this STL as text holds no points and no triangles; export it again`},
		{file: "emptyIO/obj_empty.obj", wantErr: `this OBJ holds no points and no triangles; export it again`},
		{file: "emptyIO/obj_points.obj", verts: 8, tris: 0},
		{file: "emptyIO/obj_wireframe.obj", verts: 8, tris: 0, note: `12 lines that bound no face were left out`},
		{file: "emptyIO/ply_empty_ascii.ply", wantErr: `this PLY as text holds no points and no triangles; export it again`},
		{file: "emptyIO/ply_empty_bin.ply", wantErr: `this binary PLY holds no points and no triangles; export it again`},
		{file: "emptyIO/ply_empty_header.ply", wantErr: `this PLY as text holds no points and no triangles; export it again`},
		{file: "emptyIO/ply_points_ascii.ply", verts: 8, tris: 0},
		{file: "emptyIO/ply_points_bin.ply", verts: 8, tris: 0},
		{file: "emptyIO/stl_empty_ascii.stl", wantErr: `this STL as text holds no points and no triangles; export it again`},
		{file: "emptyIO/stl_empty_bin.stl", wantErr: `this binary STL holds no points and no triangles; export it again`},
		{file: "featuretype.STL", verts: 2010, tris: 3476, area: 53.8274, volume: 11.6277},
		{file: "featuretype.ply", verts: 1722, tris: 3476, area: 53.8274, volume: 11.6277},
		{file: "fuze.ply", verts: 502, tris: 1000, area: 0.0447223, volume: 0.000606689},
		{file: "fuze_ascii.ply", verts: 502, tris: 1000, area: 0.0447223, volume: 0.000606689, note: `1000 lines have more numbers than the head promises, the first is line 523; the surplus was passed over`},
		{file: "idler_riser.STL", verts: 803, tris: 1572, area: 18.1355, volume: 1.4878},
		{file: "joined_tetrahedra.obj", verts: 5, tris: 8, area: 8.40755, volume: 0.866025},
		{file: "large_block.STL", verts: 8, tris: 12, area: 2.61885e+07, volume: 3.32915e+09},
		{file: "large_block_obb.STL", verts: 8, tris: 12, area: 8.2005e+06, volume: 8.45848e+08},
		{file: "mirror.ply", verts: 143, tris: 286, area: 1.62702, volume: 0.0670416},
		{file: "multibody.stl", verts: 20, tris: 32, area: 0.367239, volume: 0.00099759},
		{file: "nancolor.obj", verts: 8, tris: 12, area: 6, volume: 1},
		{file: "negative_indices.obj", verts: 8, tris: 12, area: 24, volume: 8},
		{file: "not_convex.obj", verts: 44, tris: 96, area: 3.51509, volume: 0.0308148},
		{file: "notenoughindices.obj", verts: 3, tris: 1, area: 250000, note: `1 faces of fewer than three corners were left out`},
		{file: "octagonal_pocket.stl", verts: 1658, tris: 3262, area: 0.0748225, volume: 0.000250353},
		{file: "origin_inside.STL", verts: 16, tris: 28, area: 6.5, volume: 0.96875},
		{file: "plate_holes.STL", verts: 618, tris: 1252, area: 133343, volume: 767362},
		{file: "points_ascii_with_lists.ply", verts: 5, tris: 0},
		{file: "points_emptyascii.ply", verts: 12, tris: 0, note: `line 23: there are lines after the last element; they were passed over`},
		{file: "points_emptyface.ply", verts: 1024, tris: 0},
		{file: "polygonfaces.obj", verts: 5, tris: 3}, // one bent face of five corners: how it is cut is anyone's choice
		{file: "shared.STL", verts: 14, tris: 24, area: 12, volume: 2},
		{file: "soup.stl", verts: 300, tris: 100, area: 14.5789, volume: -0.113003},
		{file: "torus.STL", verts: 4350, tris: 8700, area: 19.7155, volume: 4.91755},
		{file: "tube.obj", verts: 60, tris: 120, area: 113.004, volume: 8.61854},
		{file: "two_objects.obj", verts: 8, tris: 16, area: 8.36603, volume: 1.16667},
		{file: "two_objects_mixed_case_names.stl", verts: 16, tris: 24, area: 12, volume: 2},
		{file: "unit_cube.STL", verts: 8, tris: 12, area: 6, volume: 1},
		{file: "unit_sphere.STL", verts: 642, tris: 1280, area: 12.5065, volume: 4.15274},
		{file: "wallhole.obj", verts: 35, tris: 66, area: 721.421, volume: 1066.67},
		{file: "whitespace.off", verts: 8, tris: 12, area: 32, volume: 12.3168},
	}
	for _, c := range cases {
		c.run(t, "trimesh-cases")
	}
}
