package ooxml_test

import (
	"archive/zip"
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
)

func book(t testing.TB, texts ...string) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	f.SetZipWriter(ooxml.Steady)
	for i, text := range texts {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		require.NoError(t, err)
		require.NoError(t, f.SetCellStr("Sheet1", cell, ooxml.Text(text)))
	}
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return out.Bytes()
}

func TestEqualWorkbooksGiveEqualBytes(t *testing.T) {
	first := book(t, "a")
	for range 20 { // excelize orders the types by a map
		require.Equal(t, first, book(t, "a"))
	}
	z, err := zip.NewReader(bytes.NewReader(first), int64(len(first)))
	require.NoError(t, err)
	assert.Equal(t, "[Content_Types].xml", z.File[0].Name)
	assert.Equal(t, "_rels/.rels", z.File[1].Name)
}

func TestTextsComeBack(t *testing.T) {
	texts := []string{"_x0041_", "_x0041_x0042_", "__x0041__", "a_b", "_x00_", "_X0041_", "plain", "&<>"}
	raw := book(t, texts...)
	f, err := excelize.OpenReader(bytes.NewReader(raw))
	require.NoError(t, err)
	defer f.Close()
	rows, err := f.GetRows("Sheet1")
	require.NoError(t, err)
	for i, text := range texts {
		assert.Equal(t, text, rows[i][0])
	}
}
